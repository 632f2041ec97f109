"""Plans before heating: set-ups compared, where to cut, campaigns of batches, help during a run."""
