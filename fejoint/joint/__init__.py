"""What is bonded: materials, joint families, loads, and the joint file."""
