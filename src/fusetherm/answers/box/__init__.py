"""Parts of the fuse box: its air, its ways, both as a model, their grouping, the plan file."""
