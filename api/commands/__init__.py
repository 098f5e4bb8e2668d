"""The subcommands, one module for each part of the job. Each parses, calls one step and shows what it answered."""
