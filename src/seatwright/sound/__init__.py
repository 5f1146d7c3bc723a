"""What is heard: arrays of samples and what is done to them; no files, no clock."""
