"""The same services for programs: endpoints that translate in, make one call, and translate out."""
