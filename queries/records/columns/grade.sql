case
  when /*grade*/ = '-' then null
  when /*grade*/ is not null then /*grade*/
  when coalesce(/*beside*/) is not null then array_to_string(list_transform(
    range(greatest(/*lengths*/)), lambda i: '?'), ' > ')
  when b./*part*/
    and (coalesce(/*outcome*/, 'completed') = 'completed' or list_contains(s.parts, /*code*/))
    then '?'
end as /*result*/,
b./*part*/ and coalesce(/*grade*/, /*beside*/) is null as /*blank*/
