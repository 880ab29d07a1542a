, /*code*/ || '=' || case when /*column*/ = '?' then '' when contains(/*column*/, ' > ')
  then replace(split_part(/*column*/, ' > ', 1), '?', '') else /*column*/ end || ';'
