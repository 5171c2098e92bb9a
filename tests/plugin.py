"""The test run's own plugin: starts private services before Django reads its settings."""
