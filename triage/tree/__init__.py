"""Content: YAML checked into immutable values, built into a graph, with proofs over it."""
