"""Commands: each parses, calls and prints; heavy imports stand inside."""
