"""The job folder: its schema, whole-or-nothing results, and what is stale; computes nothing."""
