"""Pure property functions: one published relation each, scalars or arrays in and out."""
