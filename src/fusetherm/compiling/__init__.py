"""How kernels become machine code, out of the parts of numba: see `parts`, `passes`, `lowering`."""
