case when contains(/*pieces*/, ' > ') and not contains(/*column*/, ' > ')
  then array_to_string(list_transform(string_split(/*pieces*/, ' > '), lambda i: /*column*/), ' > ')
  else /*column*/ end as /*column*/
