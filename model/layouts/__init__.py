"""A site and one of its schemes put on a grid."""
