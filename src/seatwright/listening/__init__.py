"""Listening trials: versions made comparable, what differs between them, what listeners said."""
