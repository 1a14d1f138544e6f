"""Work in the background that outlives a crash, on a durable engine; see `background`."""
