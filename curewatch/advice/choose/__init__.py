"""Which resin for this repair: what is demanded, what each resin meets, what the person's own tests say."""
