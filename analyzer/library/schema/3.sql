-- Version 3. A screen says what the plan would of a stack, and where a medium one does not hold, of a strong one: those
-- of version 2 are kept to be read, and made again by the next scan.
UPDATE verdicts SET kind = 'earlier ' || kind WHERE kind LIKE 'screen|%';
