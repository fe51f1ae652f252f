"""One whole installation: three plans of a job, each sized, solved, priced and put in order."""
