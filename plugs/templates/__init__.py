"""Templates and gauges, and the plan that a plug is built on."""
