"""Small protocols that the acting rooms fill in: Clock, Bus, Link, Conversation, Signals, Journal, Person. Pure."""
