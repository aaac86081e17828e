"""The rules half: what is asked, what was read, what follows. No pictures, no files, no clock."""
