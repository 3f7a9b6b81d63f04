"""What is decided: claim, plan, seal, checks, verdict."""
