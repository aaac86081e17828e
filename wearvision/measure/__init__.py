"""The image half: arrays in, findings out. No files, no clock."""
