"""Fuzzing: what strangers could feed the package."""
