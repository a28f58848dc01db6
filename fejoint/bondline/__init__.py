"""The stresses along a bondline, and the published theories that give them in closed form."""
