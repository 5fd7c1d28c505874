"""After the visit: who is to be seen again, and the practice's own figures."""
