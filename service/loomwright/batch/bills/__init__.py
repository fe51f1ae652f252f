"""Bills of many rows of one job, by the rules of the single bill."""
