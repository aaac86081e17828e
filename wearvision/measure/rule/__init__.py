"""A steel rule in the frame as a scale: found by its regular marks, its graduation settled by their lengths."""
