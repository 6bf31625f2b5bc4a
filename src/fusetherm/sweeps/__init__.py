"""Sweeps: many simulations on every core or machine, in shards that survive a crash."""
