import js from '@eslint/js';
import tseslint from 'typescript-eslint';

export default tseslint.config(
  {ignores: ['dist/', 'node_modules/']},
  js.configs.recommended,
  ...tseslint.configs.strict,
  ...tseslint.configs.stylistic,
  {
    files: ['**/*.ts'],
    rules: {
      'max-lines': ['error', {max: 400}],
      'max-lines-per-function': ['error', {max: 60}],
      'max-params': ['error', {max: 5}],
      'eqeqeq': 'error',
      'no-warning-comments': 'error',
      '@typescript-eslint/consistent-type-imports': 'error',
      '@typescript-eslint/no-non-null-assertion': 'error',
    },
  },
  {files: ['**/*.test.ts'], rules: {'max-lines-per-function': 'off'}},
  {
    files: ['public/*.js'],
    languageOptions: {globals: {document: 'readonly', localStorage: 'readonly', matchMedia: 'readonly', navigator: 'readonly'}},
  },
);
