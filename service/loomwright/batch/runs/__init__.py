"""Batches from files to files: partitions, runs that go on, workers, clusters, comparison."""
