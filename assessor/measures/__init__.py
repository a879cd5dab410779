"""One file a question: accuracy, timing, bends, legato."""
