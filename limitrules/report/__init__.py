"""What people and programs read of a survey. Reports read findings; they never evaluate."""
