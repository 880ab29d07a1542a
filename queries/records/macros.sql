-- Small temporary functions that several statements of this folder share.
-- tidy: single spaces, none at the ends, no-break spaces as spaces. fold_name: how names of open
-- lists are compared. fold_code: how codes are compared. plain: a number as text, no idle zeros.
create or replace temp macro tidy(t) as
  trim(regexp_replace(replace(t, chr(160), ' '), '\s+', ' ', 'g'));
create or replace temp macro fold_name(t) as lower(tidy(t));
create or replace temp macro fold_code(t) as
  lower(regexp_replace(trim(t), '[\s_-]+', '_', 'g'));
create or replace temp macro plain(x) as regexp_replace(cast(x as varchar), '\.0$', '');
-- the decimal sign as \x01 and the sign between thousands as \x02: any other sign is no number, so
-- that 1.250 among numbers with a decimal comma is neither 1250 nor 1.25
create or replace temp macro signs_apart(t, point, thousands) as
  translate(t, concat(point, thousands), concat(chr(1), chr(2)));
create or replace temp macro readable_number(t, point, thousands) as
  case when regexp_full_match(signs_apart(t, point, thousands),
    '[+-]?((\d+|\d{1,3}(\x02\d{2,3})*\x02\d{3})(\x01\d*)?|\x01\d+)([eE][+-]?\d{1,2})?'
  ) then try_cast(
    replace(replace(signs_apart(t, point, thousands), chr(2), ''), chr(1), '.') as double) end;
-- a number as a workbook stores it, with a point whatever the people of the file write; three
-- digits behind it could be thousands typed as text
create or replace temp macro stored_number(t) as
  case when regexp_full_match(t, '[+-]?\d+\.(\d{1,2}|\d{4,})') then try_cast(t as double) end;
-- control signs and those that turn the direction of writing; tidy makes spaces of tab and newline
create or replace temp macro unprintable(t) as
  regexp_matches(t, '[\x00-\x08\x0E-\x1F\x7F-\x{9F}\x{200E}\x{200F}\x{202A}-\x{202E}\x{2066}-\x{2069}]');
-- A telephone number has one stroke at most; a date with strokes has two.
create or replace temp macro masked(t) as
  regexp_replace(
    regexp_replace(
      regexp_replace(t, '[^@\s;>,]+@[^@\s;>,]+\.[A-Za-z]{2,}', '[e-mail masked]', 'g'),
      '(^|\D)\d(?:[ /-]?\d){14}(\D|$)', '\1[15-digit number masked]\2', 'g'),
    '(^|[^\w.])((\+|00?|\()\d(?:([ ().-]{0,2}\d){7,13}|([ ().-]{0,2}\d){1,6} ?/ ?\d([ ().-]{0,2}\d){3,9})|\d{3}[ ./-]\d{3}[ ./-]\d{4}|\d{10,14})(\D|$)',
    '\1[telephone number masked]\7', 'g');
-- the check digit of a 15-digit identifier: every second digit doubled, sum divisible by ten
create or replace temp macro luhn_valid(t) as
  list_sum(list_transform(range(1, 16), lambda i:
    case when i % 2 = 1 then cast(t[i] as integer)
         when cast(t[i] as integer) < 5 then 2 * cast(t[i] as integer)
         else 2 * cast(t[i] as integer) - 9 end)) % 10 = 0;
create or replace temp macro personal(t) as
  case
    when regexp_matches(t, '[^@\s;>,]+@[^@\s;>,]+\.[A-Za-z]{2,}') then 'an e-mail address'
    when len(list_filter(
      regexp_extract_all(t, '(?:^|\D)(\d(?:[ /-]?\d){14})(?:\D|$)', 1),
      lambda x: luhn_valid(regexp_replace(x, '\D', '', 'g')))) > 0
      then 'a 15-digit device number'
    when regexp_matches(t,
      '(^|[^\w.])((\+|00?|\()\d(?:([ ().-]{0,2}\d){7,13}|([ ().-]{0,2}\d){1,6} ?/ ?\d([ ().-]{0,2}\d){3,9})|\d{3}[ ./-]\d{3}[ ./-]\d{4}|\d{10,14})(\D|$)')
      then 'a telephone number'
  end;
