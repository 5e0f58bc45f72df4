"""The state of one vehicle and of both radio links, from inbound events and ticks. Pure."""
