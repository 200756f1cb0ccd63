"""Ask a running server every route as every role in every state of an image."""
