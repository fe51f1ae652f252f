"""Audio: amplifiers, what they can really put out, levels and loudspeakers."""
