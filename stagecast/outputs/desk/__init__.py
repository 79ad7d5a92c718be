"""The desk: the season's pages and forms to log into it, served on this computer."""
