"""The local application: pages in a browser on the same machine, over one notebook."""
