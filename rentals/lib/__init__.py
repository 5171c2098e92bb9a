"""What every app stands on: who may do what, where a write begins, and how things are said and shown."""
