"""The section function: from stations to the section at any place along a plug, and its checks."""
