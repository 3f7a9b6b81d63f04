"""A made-up bench that gives tables and recordings with a known truth."""
