"""Photo-assisted wear grading for the wet end of centrifugal pumps; a person confirms, a person decides."""

__version__ = "0.1.0"
