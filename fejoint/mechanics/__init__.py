"""From a joint to checked stresses: mesh, assemble, factor, solve, recover, check, refine."""
