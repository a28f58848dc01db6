"""What load breaks the joint, how, and with what margin."""
