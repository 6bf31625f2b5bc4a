"""The fuse: its element and model, its definition file, families and the gates of standards."""
