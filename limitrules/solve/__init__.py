"""The rules run backwards: which values a setting may have, and which values all of them should have."""
