"""Speed and coverage, printed side by side; a package, so that no installed one of this name is taken for it."""
