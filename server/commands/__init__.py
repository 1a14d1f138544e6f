"""The commands, one module a subject; each imports no more than it needs to run."""
