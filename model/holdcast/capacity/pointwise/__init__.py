"""What each draw says of each test: log likelihoods, replicates and chances, draw by draw."""
