"""Rules, rulepacks, and what evaluating them finds."""
