import {defineConfig} from 'vitest/config';

export default defineConfig({
  // Relative, so that Django may serve the files below any static address.
  base: './',
  build: {
    outDir: 'dist',
    manifest: 'manifest.json',
    target: 'es2022',
    // Fonts stay files: a data: address would need a wider content security policy.
    assetsInlineLimit: 0,
    modulePreload: {polyfill: false},
    rollupOptions: {
      input: {
        base: 'base.ts',
        examination: 'main.ts',
        points: 'points.ts',
        frame_setup: 'frame_setup.ts',
        bring_in: 'bring_in.ts',
        live_list: 'live_list.ts',
      },
    },
  },
  test: {
    environment: 'happy-dom',
    include: ['**/*.test.ts'],
    exclude: ['node_modules/**', 'dist/**'],
  },
});
