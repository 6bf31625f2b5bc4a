"""An answer as one page: no network, readable on a phone and on paper."""
