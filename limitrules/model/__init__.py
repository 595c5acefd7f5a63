"""The vocabulary, and system documents read by it."""
