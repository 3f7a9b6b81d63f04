"""The rig: inertia of the wheel, and what a falling weight gives it."""
