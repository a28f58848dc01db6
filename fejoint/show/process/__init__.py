"""Of the bonding process: tables, figures, the job card."""
