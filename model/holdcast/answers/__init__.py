"""Questions asked of a fit: each file turns draws into one labelled Dataset."""
