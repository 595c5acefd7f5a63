"""Evaluating rulepacks over a system."""
