"""The only modules that touch files: scenes and stems come in here, bounces go out."""
