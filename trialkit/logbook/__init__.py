"""What is added to a trial folder during the season, and how it is made sure that nothing is lost or added twice."""
