"""Of coupon tests: tables, figures, the report."""
