"""Rules read and evaluated a second time, apart from the survey, for the checker of certificates."""
