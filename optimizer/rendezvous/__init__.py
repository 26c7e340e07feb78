"""The least delta-v for one craft, its slot and its time: impulses at any moment in any direction."""
