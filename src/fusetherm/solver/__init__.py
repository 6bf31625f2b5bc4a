"""The thermal network of a fuse, its integrators and the runs they make."""
