"""What is looked at: the report and its table."""
