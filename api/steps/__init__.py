"""One function per step of the grower's job: load, compute, store, draw. Every door calls these and nothing else."""
