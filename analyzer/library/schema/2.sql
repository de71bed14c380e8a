-- Version 2. What stood behind the goods can be asked in numbers. What is usual behind a goods is chosen in
-- another way than before, so screens of version 1 are kept to be read, and made again by the next scan.
ALTER TABLE verdicts ADD COLUMN backing TEXT;      -- its kinds, that next to the goods first, empty: none
ALTER TABLE verdicts ADD COLUMN backing_g_m2 REAL; -- all of it together
ALTER TABLE verdicts ADD COLUMN layers INTEGER;    -- of backing
UPDATE verdicts SET backing = kinds_in(stack), backing_g_m2 = weight_in(stack), layers = layers_in(stack);
UPDATE verdicts SET kind = 'earlier ' || kind WHERE kind LIKE 'screen|%';
