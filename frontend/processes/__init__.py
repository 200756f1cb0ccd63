"""The processes of one installation: database, web server, workers, and who watches them."""
