"""Parameter sweeps: many points of a scenario in one pass, a report each, and their comparison."""
