"""What was done to records, told with what differs, and undone: one module for each kind of it."""
