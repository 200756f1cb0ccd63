"""The invented demonstration study and the procedural painter that makes its pictures."""
