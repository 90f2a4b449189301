"""What dialogs/ holds, read and checked: steps, words, replies, cautions, for every truck."""
