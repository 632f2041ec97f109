"""The bench logbook: batches, cuts, bottles, lots and their movements, in one SQLite file."""
