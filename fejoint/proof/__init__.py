"""Cases as data: joints with what is known of them from outside, and the runner that holds the package to it."""
