"""The conductor a fuse protects: its section, its insulation, how it heats and what it stands."""
