"""The desktop: weather, house model, replay and reports around the decision code."""
