"""Of the bonding process: what a person reads and looks at, and the job card."""
