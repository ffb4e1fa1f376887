"""A board's two straight lines from a bench session: points, checks, fit, uncertainty, certificate."""
