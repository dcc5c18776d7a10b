"""The page for phones on the local network: a bounded server in the daemon, and the model beside it."""
