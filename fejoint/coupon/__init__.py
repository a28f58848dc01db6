"""After the analysis: what the tensile tester says of coupons, and what their numbers allow to say."""
