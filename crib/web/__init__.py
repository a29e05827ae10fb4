"""The pages: server-rendered, ours from the first pixel, and whole without any script."""
