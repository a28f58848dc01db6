"""Many joints: what is varied, the journal of what is finished, the workers, the table."""
