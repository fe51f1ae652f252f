"""Mutation testing: the mutants are cosmic-ray's, each tried in a forked process."""
